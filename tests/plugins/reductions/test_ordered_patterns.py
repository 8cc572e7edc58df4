"""Threshold patterns."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from ladderlight_stages.reductions.ordered import bayer, blue_noise, clustered_dot


@pytest.mark.parametrize("ranks", [bayer(2), bayer(16), clustered_dot(4), clustered_dot(8), blue_noise()])
def test_every_rank_occurs_once(ranks: np.ndarray) -> None:
    np.testing.assert_array_equal(np.sort(ranks.ravel()), np.arange(ranks.size))


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_blue_noise_has_little_energy_at_low_frequencies(share: float) -> None:
    """Below 0.3 of its principal frequency, sqrt(share) cycles a pixel, against as many dots at random."""
    ranks = blue_noise()
    dots = ranks < share * ranks.size
    random = np.random.default_rng(1).permutation(ranks.ravel()).reshape(ranks.shape) < share * ranks.size
    frequency = np.hypot(*np.meshgrid(np.fft.fftfreq(64), np.fft.fftfreq(64)))
    low = (frequency > 0) & (frequency < 0.3 * np.sqrt(min(share, 1 - share)))
    energy = [np.abs(np.fft.fft2(pattern - pattern.mean())[low] ** 2).mean() for pattern in (dots, random)]
    assert energy[0] < 0.06 * energy[1]


def test_blue_noise_has_no_direction() -> None:
    spectrum = np.abs(np.fft.fft2((blue_noise() < 2048) - 0.5)) ** 2
    x, y = np.meshgrid(np.fft.fftfreq(64), np.fft.fftfreq(64))
    ring = (np.hypot(x, y) > 0.2) & (np.hypot(x, y) < 0.5)
    flat, steep = ring & (np.abs(x) > np.abs(y)), ring & (np.abs(x) < np.abs(y))
    assert spectrum[flat].mean() / spectrum[steep].mean() == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("share", [0.2, 0.5])
def test_clustered_dots_touch_their_like(share: float) -> None:
    """Neighbours are alike far more often than in Bayer's pattern."""

    def alike(ranks: np.ndarray) -> float:
        dots = ranks < share * ranks.size
        return float(np.mean(dots == np.roll(dots, 1, axis=1)))

    assert alike(clustered_dot(8)) > alike(bayer(8)) + 0.15


def test_there_are_two_dots_to_a_square() -> None:
    dots = clustered_dot(8) < 8
    np.testing.assert_array_equal(dots, np.roll(dots, (4, 4), axis=(0, 1)))


def test_blue_noise_does_not_depend_on_the_version_of_numpy() -> None:
    """Chips would have to be burned again. The digest was computed alike with NumPy 1.26.4 and 2.4.6."""
    digest = hashlib.sha256(blue_noise().astype("<i8").tobytes()).hexdigest()
    assert digest == "0fae0f030da83058b9807a9acf1fc58b486de6b472fce9ab63e3f1b9da869a17"
