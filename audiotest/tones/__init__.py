"""Test signals for a set's microphone socket, and guided procedures that use them."""
