"""Files given to the page: their bytes are taken once, and the uploader's own copy is let go."""

from streamlit.runtime.scriptrunner import get_script_run_ctx

__all__ = ["take_bytes"]


def take_bytes(given):
    """Return the bytes of a file from an uploader, and free the uploader's copy.

    The web server keeps whatever a session uploads until its browser is closed; a day's photos would pile up.

    Parameters
    ----------
    given : streamlit UploadedFile
        From an uploader that is drawn anew, under another key, in the next run.

    Returns
    -------
    bytes
    """
    content = given.getvalue()
    context = get_script_run_ctx()
    if context is not None:
        context.uploaded_file_mgr.remove_file(context.session_id, given.file_id)
    return content
