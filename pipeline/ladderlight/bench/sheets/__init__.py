"""The bench sheet: what is on it, as text, as a page to print, for a spreadsheet and as plain values."""
