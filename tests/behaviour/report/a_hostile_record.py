"""One stay whose every free text is the same text: names, site, notes, files, the rule's own words."""

from __future__ import annotations

import csv
import io
import json
from functools import cache

import slackwater
from property.a_small_stay import RULE, Said, chart_text, episode_text, healed, layout_toml, log_rows, log_text, stamp
from slackwater.assessment.assessment import Assessment

TEXTS = {
    "plain": "Plain words",
    "script": '</script><script>window.ran = 1</script><img src="https://x.invalid" onerror="window.ran = 1">',
    "comment": "<!--<script>window.ran = 1</script>--!> ]]> <![CDATA[",
    "quotes": "\" onmouseover=\"window.ran = 1\" ' onfocus='window.ran = 1' autofocus tabindex=1 `${window.ran = 1}`",
    "style": "</style><style>@import url(https://elsewhere.invalid/x); body { display: none }</style>",
    "template": "{{ 7 * 7 }}{% include 'page.html' %}{# gone #} &lt;b&gt; &amp;amp; &#x3c;",
    "right to left": "\u202eתילאמש \u2066دخل\u2069 \u200fשמאל\u202c",
    "long": "A" * 10_000,
    "signs": "𝟙 \ufdfd 🫁 e\u0301\u0301\u0301 ﷽ ​\u200b ≥20 − 5",
}  # fmt: skip


@cache
def hostile(kind: str, *, removal: bool = True) -> Assessment:
    """The assessment of a healed stay with that text wherever a person can type one."""
    text = TEXTS[kind]
    stay = healed(said=(Said(300, "cough", "no_leak"), Said(640, "swing", "present")))
    layout = slackwater.Layout.from_toml(layout_toml(), "layout.toml")
    return slackwater.assess(
        [slackwater.read_log(log_text(log_rows(stay)), layout, text)],
        chart=slackwater.read_chart(_chart(stay.said, text), text),
        episode=slackwater.read_episode(_episode(text), "episode.toml"),
        protocol=slackwater.load_protocol(_rule(text), text) if removal else None,
    )


def _chart(said: tuple[Said, ...], text: str) -> bytes:
    rows = list(csv.reader(io.StringIO(chart_text(said).decode())))
    for row in rows[1:]:
        row[4], row[7] = text, text
    rows.append([stamp(400), "note", text, "", text, "1", "", text])
    rows.append([stamp(410), text[:60], text, text[:40], text, "1", "", text])
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def _episode(text: str) -> bytes:
    text = text[:500]  # longer ones are refused there
    plain = episode_text(healed()).decode()
    plain = plain.replace('id = "INV-1"', f"id = {_toml(text)}").replace('"fifth space"', _toml(text))
    return f"goal = {_toml(text)}\n{plain}".encode()


def _rule(text: str) -> bytes:
    rule = RULE.decode().replace('"INVENTED WORDS"', _toml(text)).replace('"invented for the laws"', _toml(text))
    rule = rule.replace('version = "1"', f"version = {_toml(text)}\nnotes = {_toml(text)}\napproved_by = {_toml(text)}")
    rule = rule.replace('name = "small-50"', f"name = {_toml(text)}").replace(
        'status = "example"', 'status = "approved"'
    )
    rule = rule.replace('id = "fluid"', f'id = "fluid"\nsource = {_toml(text)}')
    much, fired = 'limit = "150 mL"\nwithin = "2 h"', 'limit = "1 mL"\nwithin = "12 h"'  # so that its words are shown
    return rule.replace(much, fired).encode()


def _toml(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
