"""The board at work: addresses, words, codes and blanking, count by count."""
