"""The simulated radio: transmitter, path and receiver, for the demo, the tests and teaching."""
