"""Types of what the loops need of llvmlite, which has none of its own."""

__version__: str
