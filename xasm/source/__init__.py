"""Files, places and diagnostics: what every other room reports errors with."""
