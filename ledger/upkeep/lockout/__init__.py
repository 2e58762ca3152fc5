"""Lockout: what is locked before hands go in, at a machine and on a walk."""
