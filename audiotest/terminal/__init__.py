"""The command line: arguments in, cards and documents out."""
