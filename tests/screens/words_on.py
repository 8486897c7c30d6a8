"""What a page driven without a browser says."""

__all__ = ["texts_of"]


def texts_of(page):
    """All words of an AppTest's page: texts, titles, notes and drawn HTML."""
    kinds = (page.markdown, page.title, page.subheader, page.caption, page.error, page.success, page.warning)
    drawn = [str(element.proto.body) for element in page.get("html")]
    return " ".join([*(element.value for kind in kinds for element in kind), *drawn])
