"""The shared syntax: grammar, parser, expression nodes and lines. The only room that imports lark."""
