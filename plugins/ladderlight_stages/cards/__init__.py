"""Test cards: pictures made from the board itself, to bring it up."""
