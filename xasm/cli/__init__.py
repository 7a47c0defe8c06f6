"""The commands, one thin file each. The only room that imports click."""
