"""The shell: one short function a command."""
