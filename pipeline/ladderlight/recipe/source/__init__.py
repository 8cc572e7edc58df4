"""The recipe's text: documents, positions, problems with their places."""
