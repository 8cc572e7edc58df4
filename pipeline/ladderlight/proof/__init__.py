"""The proof: a page that shows what the monitor will show, from the device files themselves."""
