"""Where audio comes from: sound card, file, simulated radio; and the learned scale."""
