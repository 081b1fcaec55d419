# SPDX-License-Identifier: GPL-3.0-or-later
"""The check sheet of a build as one small page to print: no script, nothing outside."""

from html import escape

from tonebench.report.build_words import build_sections
from tonebench.report.parts_words import parts_remarks, parts_row
from tonebench.report.themes import DARK, LIGHT
from tonebench.study.build import Build

_HEADS = ("Part", "Value", "Kind", "Tolerance", "Series", "Note")
_STYLE = f"""
:root {{ color-scheme: light dark; --ink: {LIGHT.ink}; --paper: {LIGHT.paper};
  --line: {LIGHT.grid}; --mark: {LIGHT.a}; }}
@media (prefers-color-scheme: dark) {{ :root {{ --ink: {DARK.ink};
  --paper: {DARK.paper}; --line: {DARK.grid}; --mark: {DARK.a}; }} }}
@media print {{ :root {{ --ink: #000; --paper: #fff; --line: #999; }} }}
body {{ font: 16px/1.5 system-ui, sans-serif; color: var(--ink);
  background: var(--paper); max-width: 46rem; margin: 2rem auto; padding: 0 1rem; }}
h1 {{ font-size: 1.5rem; margin-bottom: 0; }}
h2 {{ font-size: 1.1rem; border-bottom: 2px solid var(--mark); margin-top: 2rem; }}
table {{ border-collapse: collapse; width: 100%; }}
th, td {{ text-align: left; padding: .2rem .6rem .2rem 0; vertical-align: top;
  border-bottom: 1px solid var(--line); }}
tr {{ break-inside: avoid; }}
"""


def build_page(found: Build) -> str:
    """Return the check sheet as HTML, to be read on a screen or printed."""
    title = escape(found.chain.circuit.full_title)
    body = [f"<h1>{title}</h1>", f"<p>{escape(found.chain.line)}</p>"]
    for head, lines in build_sections(found):
        body.append(f"<h2>{escape(head)}</h2>")
        spoken = parts_remarks(found.parts) if head == "Parts" else lines
        body += [f"<p>{escape(line)}</p>" for line in spoken]
        if head == "Parts":
            body += _table(found)
    joined = "\n".join(body)
    policy = "default-src 'none'; style-src 'unsafe-inline'"
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Check sheet: {title}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{joined}\n</main>\n</body>\n</html>\n"
    )


def _table(found: Build) -> list[str]:
    heads = "".join(f'<th scope="col">{head}</th>' for head in _HEADS)
    rows = [
        "".join(f"<td>{escape(cell)}</td>" for cell in parts_row(line))
        for line in found.parts
    ]
    body = "\n".join(f"<tr>{row}</tr>" for row in rows)
    return [f"<table>\n<tr>{heads}</tr>\n{body}\n</table>"]
