"""What may be wrong with a chip that differs: faults and other contents, each weighed against what was found."""
