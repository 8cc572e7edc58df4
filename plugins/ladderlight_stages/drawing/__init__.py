"""Drawing test cards in a board's codes: shapes, and which codes stand for which colours."""
