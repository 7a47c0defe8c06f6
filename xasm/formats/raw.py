"""Raw binary: the words from the lowest to the highest address and nothing else."""

from __future__ import annotations

from xasm.formats.blocks import blocks, packed
from xasm.formats.options import Options, filler, order_of
from xasm.linking.image import Image


def write(image: Image, options: Options) -> bytes:
    """The bytes of the file: first the word at the lowest address, gaps filled (with ones where no filler is given).

    A word of more than 8 bits takes the next whole number of bytes. Raises Fault: bad_fill, no_words, too_large.
    """
    fill = filler(options, image)
    if fill is None:
        fill = (1 << image.target.word) - 1  # as an erased EPROM reads
    (block,) = blocks(image, fill)
    return packed(block.words, image.target.cell, order_of(options, image))
