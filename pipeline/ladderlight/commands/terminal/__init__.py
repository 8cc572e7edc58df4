"""The terminal's side of the commands: its two streams, the options that commands share, wrong usage in plain words."""
