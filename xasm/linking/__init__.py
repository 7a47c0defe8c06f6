"""Module to image: the only room that knows an address."""
