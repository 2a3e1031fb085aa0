"""Pure measurement: arrays in, numbers and frozen records out; no files, no devices, no state."""
