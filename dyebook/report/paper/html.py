"""A sheet as one HTML page that needs nothing else (all text escaped, pictures inside, no scripts), or as a file.

The same blocks stand in notebooks as a fragment.
"""

from base64 import b64encode
from html import escape
from pathlib import Path

from dyebook.errors import DyebookError
from dyebook.lab import Lab
from dyebook.report.paper.pdf import pdf_bytes
from dyebook.report.paper.sheet import (
    OUTSIDE,
    PAPERS_MM,
    Code,
    Pairs,
    Picture,
    Prose,
    Ribbon,
    Swatches,
    Table,
    ink_of,
    plain_text,
)
from dyebook.safe_file import replacing

__all__ = ["KINDS", "html_fragment", "kind_of", "save_paper", "sheet_bytes"]

# what blocks look like, on a page of their own as in a notebook, light or dark
_BLOCK_STYLE = """
h2{margin:0 0 .4rem;font-size:1rem;font-weight:600}
figcaption,.ends,.small,dt{opacity:.75}
.row{display:flex;flex-wrap:wrap;gap:1.6rem;margin-top:1.3rem}
.column{min-width:13rem;display:grid;gap:1rem;align-content:start}
figure{margin:0}img{max-width:100%;max-height:30rem;display:block}figcaption,.small{font-size:.85rem}
p{margin:0 0 .35rem;white-space:pre-line;overflow-wrap:anywhere}.large{font-size:1.25rem}
.swatches{display:flex;background:#b9b9b9;padding:.6rem}.swatches div{flex:1;min-height:8rem}
.items{display:flex;gap:1rem;margin-top:.4rem}.items>div{flex:1}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:0}dt{font-weight:400}
dd{margin:0;overflow-wrap:anywhere}
table{border-collapse:collapse;width:100%;font-size:.9rem}th{font-weight:600}
th,td{text-align:left;padding:.22rem .5rem .22rem 0;border-bottom:1px solid rgba(128,128,128,.4)}
th,td{vertical-align:top;overflow-wrap:break-word}
td.figure,th.figure{text-align:right;white-space:nowrap;padding-right:.8rem}.wide{overflow-x:auto}
.patch{display:block;width:2.4rem;height:1.2rem;border:1px solid #8a8a8a}
.ribbon{display:flex;flex-wrap:wrap;background:#b9b9b9;padding:.4rem}
.ribbon span{flex:1 0 1.1rem;max-width:3rem;height:2.2rem}
.none{background:repeating-linear-gradient(45deg,#f2f2f2,#f2f2f2 3px,#c2c2c2 3px,#c2c2c2 5px)}
.ends{display:flex;justify-content:space-between;font-size:.85rem}
.code{display:flex;gap:1rem;align-items:center}.code svg{width:7rem;height:7rem;flex:none;background:#fff}
"""
_PAGE_STYLE = """
*{box-sizing:border-box}
body{margin:0;background:#dcdcdc;color:#1c1d1f;font:15px/1.45 system-ui,sans-serif;font-variant-numeric:tabular-nums}
main{max-width:52rem;margin:1.5rem auto;padding:2rem;background:#fff}
header{display:flex;justify-content:space-between;gap:1rem;border-bottom:2px solid #1c1d1f;padding-bottom:.7rem}
h1{margin:0;font-size:2rem;font-weight:600}header p,.corner,.foot{color:#55585e}header p{margin:.2rem 0 0}
.corner{text-align:right;white-space:pre-line}
.foot{border-top:1px solid #c2c2c2;margin-top:1.5rem;padding-top:.5rem;font-size:.85rem}
@media print{body{background:#fff;font-size:12px;print-color-adjust:exact;-webkit-print-color-adjust:exact}
main{margin:0;padding:0;max-width:none}.row{break-inside:avoid}img{max-height:9cm}}
"""


def html_page(sheet, paper="a4") -> str:
    """Return a sheet as HTML.

    `paper` ("a4", "letter"): what it is printed on.
    """
    width, height = PAPERS_MM[paper]
    policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
    rows = "".join(_row(row) for row in sheet.rows)
    return (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{_text(sheet.title)}</title>'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>@page{{size:{width}mm {height}mm;margin:15mm}}{_BLOCK_STYLE}{_PAGE_STYLE}</style></head><body><main>"
        f"<header><div><h1>{_text(sheet.title)}</h1><p>{_text(sheet.lead)}</p></div>"
        f'<div class="corner">{_text(sheet.corner)}</div></header>{rows}'
        f'<div class="foot">{_text(sheet.foot)}</div></main></body></html>'
    )


def html_fragment(rows, before: str = "") -> str:
    """Return rows of blocks as HTML to stand within another page, such as a notebook's.

    `before`: HTML to begin with, used as it is.
    """
    inner = "".join(_row(row) for row in rows)
    # the style is nested, so that nothing of the page around it changes
    style = f".dyebook{{max-width:46rem;line-height:1.45;font-variant-numeric:tabular-nums;{_BLOCK_STYLE}}}"
    return f'<div class="dyebook"><style>{style}</style>{before}{inner}</div>'


def _text(text):
    return escape(plain_text(text))


def _row(row):
    columns = ""
    for share, blocks in row.columns:
        inner = "".join(_BLOCKS[type(block)](block) for block in blocks)
        columns += f'<div class="column" style="flex:{share:g} 1 0">{inner}</div>'
    return f'<div class="row">{columns}</div>'


def _heading(text):
    return f"<h2>{_text(text)}</h2>" if text else ""


def _colour(lab):
    """Style of a patch, the class of one without a colour, and a mark where the screen cannot show it."""
    if lab is None:
        return 'class="none"', ""
    (red, green, blue), outside = ink_of(lab)
    return f'style="background:rgb({red},{green},{blue})"', OUTSIDE if outside else ""


def _swatches(block):
    patches = "".join(f"<div {_colour(item.lab)[0]}></div>" for item in block.items)
    items = ""
    for item in block.items:
        lines = [line for line in (*item.lines, _colour(item.lab)[1]) if line]
        items += f"<div><strong>{_text(item.title)}</strong>{''.join(f'<br>{_text(line)}' for line in lines)}</div>"
    return f'<div><div class="swatches">{patches}</div><div class="items">{items}</div></div>'


def _picture(block):
    kind = "png" if block.data.startswith(b"\x89PNG") else "jpeg"
    source = f"data:image/{kind};base64,{b64encode(block.data).decode()}"
    caption = _text(block.caption)
    return f'<figure><img src="{source}" alt="{caption}"><figcaption>{caption}</figcaption></figure>'


def _pairs(block):
    rows = "".join(f"<dt>{_text(label)}</dt><dd>{_text(text)}</dd>" for label, text in block.rows)
    return f"<section>{_heading(block.heading)}<dl>{rows}</dl></section>"


def _cell(tag, cell, right):
    kind = ' class="figure"' if right else ""
    inner = f'<span class="patch" {_colour(cell)[0]}></span>' if isinstance(cell, Lab) else _text(cell)
    return f"<{tag}{kind}>{inner}</{tag}>"


def _table(block):
    head = "".join(_cell("th", cell, place in block.right) for place, cell in enumerate(block.head))
    lines = ("".join(_cell("td", cell, place in block.right) for place, cell in enumerate(row)) for row in block.rows)
    body = "".join(f"<tr>{line}</tr>" for line in lines)
    table = f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
    return f"<section>{_heading(block.heading)}{table}</section>"


def _prose(block):
    lines = "".join(f'<p class="{block.size}">{_text(line)}</p>' for line in block.lines)
    return f"<section>{_heading(block.heading)}{lines}</section>"


def _ribbon(block):
    patches = "".join(f"<span {_colour(lab)[0]}></span>" for lab in block.labs)
    ends = "".join(f"<span>{_text(end)}</span>" for end in block.ends)
    return (
        f'<section>{_heading(block.heading)}<div class="ribbon">{patches}</div><div class="ends">{ends}</div></section>'
    )


def _code(block):
    import segno

    drawing = segno.make(block.text, micro=False, error="m").svg_inline(omitsize=True, border=2)
    return f'<div class="code">{drawing}<p class="small">{_text(block.caption)}</p></div>'


_BLOCKS = {
    Swatches: _swatches,
    Picture: _picture,
    Pairs: _pairs,
    Table: _table,
    Prose: _prose,
    Ribbon: _ribbon,
    Code: _code,
}


KINDS = {".pdf": "application/pdf", ".html": "text/html"}


def kind_of(file, kinds=tuple(KINDS)):
    """Return the ending of a file to write, one of `kinds`; DyebookError for another."""
    kind = Path(file).suffix.lower()
    if kind not in kinds:
        raise DyebookError(f"{file} ends in {kind or 'nothing'}; name a file that ends in {' or '.join(kinds)}")
    return kind


def sheet_bytes(sheet, kind, paper="a4") -> bytes:
    """Return the content of a file that holds a sheet.

    `kind` is ".pdf" or ".html". `paper` is "a4" or "letter".
    """
    return pdf_bytes(sheet, paper) if kind == ".pdf" else html_page(sheet, paper).encode()


def save_paper(file, content):
    """Write a file and return its path; DyebookError where that is not allowed."""
    path = Path(file)
    try:
        with replacing(path) as part:
            part.write_bytes(content)
    except OSError as fault:
        raise DyebookError(f"{path} cannot be written ({fault.strerror}); name a folder that can be") from fault
    return path
