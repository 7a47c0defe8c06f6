"""Statements to modules: directives, symbols, pieces of program whose addresses are not known yet."""
