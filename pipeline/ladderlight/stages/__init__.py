"""The stage contract, and where stages come from."""
