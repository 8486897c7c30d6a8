"""Ports for the servers that tests start."""

import socket

__all__ = ["free_port", "listens"]


def free_port(address):
    """Return a port of one of this machine's addresses that nobody listens on."""
    with socket.socket() as probe:
        probe.bind((address, 0))
        return probe.getsockname()[1]


def listens(address, port):
    """Return whether somebody does."""
    with socket.socket() as probe:
        return probe.connect_ex((address, port)) == 0
