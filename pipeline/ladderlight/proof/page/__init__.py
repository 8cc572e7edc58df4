"""The proof page: one file with the words of the device files, and scripts that scan them as the board does."""
