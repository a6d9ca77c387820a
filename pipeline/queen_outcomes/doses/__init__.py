"""Dose protocols compared and the next trial planned: arrays in, frozen results out."""
