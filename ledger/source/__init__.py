"""From files to documents: names, characters, YAML and positions; nothing of machines."""
