"""What is kept: clips on disk."""
