"""The record: model, canonical JSON, keys, signatures."""
