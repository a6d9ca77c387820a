"""Engines: arrays in, frozen results out; no store, no settings, no words."""
