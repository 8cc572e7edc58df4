"""The recipe's tables and values, and the checked model that they become."""
