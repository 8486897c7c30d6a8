"""Write the ICC profile of a matrix encoding: for files of our own, and as the colour engine's goal."""

import struct

import numpy as np

from dyebook.photo.profile import CONNECTION_XYZ, adaptation, rec709_to_xyz

__all__ = ["matrix_profile"]


def matrix_profile(encoding, samples=4096):
    """Return the ICC profile (version 2.4) of a matrix encoding.

    Parameters
    ----------
    encoding : Encoding
        With one curve for all channels.
    samples : int
        Samples of the curve.

    Returns
    -------
    bytes
        A monitor profile that any colour-managed reader understands.

    References
    ----------
    ICC.1:2001-04, clause 6 (the last of version 2).
    """
    curve = np.clip(np.round(encoding.curves[0](np.linspace(0, 1, samples)) * 65535), 0, 65535).astype(">u2")
    trc = b"curv\0\0\0\0" + struct.pack(">I", samples) + curve.tobytes()
    text = encoding.name.encode("ascii", "replace") + b"\0"
    matrix = np.eye(3) if encoding.matrix is None else encoding.matrix
    rec709 = rec709_to_xyz()
    columns = (adaptation(rec709.sum(axis=1), CONNECTION_XYZ) @ rec709 @ matrix).T
    return _assemble(
        {
            b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78),
            b"cprt": b"text\0\0\0\0none\0",
            b"wtpt": _xyz_block(CONNECTION_XYZ),
            b"rXYZ": _xyz_block(columns[0]),
            b"gXYZ": _xyz_block(columns[1]),
            b"bXYZ": _xyz_block(columns[2]),
            b"rTRC": trc,
            b"gTRC": trc,
            b"bTRC": trc,
        }
    )


def _xyz_block(values):
    """Return an XYZ block of three 15.16 numbers."""
    return b"XYZ \0\0\0\0" + np.round(np.asarray(values) * 65536).astype(">i4").tobytes()


def _assemble(blocks):
    """Join header, tag table and blocks; equal blocks are stored once."""
    table, body, places = b"", b"", {}
    start = 132 + 12 * len(blocks)
    for signature, block in blocks.items():
        if block not in places:
            places[block] = start + len(body)
            body += block + bytes(-len(block) % 4)
        table += struct.pack(">4sII", signature, places[block], len(block))
    dates = struct.pack(">6H", 2025, 1, 1, 0, 0, 0)
    white = np.round(CONNECTION_XYZ * 65536).astype(">i4").tobytes()
    header = struct.pack(">I4sI4s4s4s", start + len(body), bytes(4), 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += dates + b"acsp" + bytes(28) + white
    return header.ljust(128, b"\0") + struct.pack(">I", len(blocks)) + table + body
