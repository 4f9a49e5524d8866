"""The commands, one file each; a command imports what it needs when it runs."""
