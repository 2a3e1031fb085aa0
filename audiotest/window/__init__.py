"""The bench window: shows what the engine measured and what the advice says of it."""
