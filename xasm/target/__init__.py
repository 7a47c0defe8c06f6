"""Chip tables: model, loader, operand kinds, encoding and decoding. The only room that imports yaml."""
