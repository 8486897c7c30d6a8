"""Keep a customer's sample that lay beside a batch in one photo."""

from dyebook.book.reading_rows import measured_values

__all__ = ["keep_sample"]


def keep_sample(book, batch_id, measurement, part_index, name=None):
    """Add a customer's sample with its reading, and return the sample's number.

    Parameters
    ----------
    book : dyebook.book.store.Book
    batch_id : int
        The batch it lay beside; its newest photo is the evidence.
    measurement : dyebook.record.Measurement
    part_index : int
        Which part of the photo the sample is, from 0, left to right.
    name : str, optional

    Returns
    -------
    int

    Raises
    ------
    BookError
        If the photo shows no such part.
    """
    values = measured_values(measurement, part_index)
    photos = book.rows("photos", batch_id=batch_id)
    sample_id = book.add("samples", name=name or f"sample beside batch {batch_id}")
    book.add("readings", sample_id=sample_id, photo_id=photos[-1]["id"] if photos else None, **values)
    return sample_id
