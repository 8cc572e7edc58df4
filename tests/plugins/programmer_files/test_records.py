from ladderlight_stages.programmer_files.records import record_starts


def test_everything_in_one_stretch_unless_fill_is_left_out():
    data = b"\xff\xff\x01\xff\xff\xff\xff"
    assert list(record_starts(data, 2, leave_out_fill=False)) == [(0, data)]
    assert list(record_starts(data, 2, leave_out_fill=True)) == [(2, b"\x01\xff")]
    assert list(record_starts(b"\xff\x00\x01", 2, leave_out_fill=True)) == [(0, b"\xff\x00"), (2, b"\x01")]
