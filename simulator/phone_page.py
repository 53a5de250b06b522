"""The page of the pretend phones: one phone for each person, the newest text first, and a field to answer in.

It works without a script. With one, what is new comes by itself, and what somebody is typing stays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final
from urllib.parse import quote

from simulator import farm
from simulator.books import Person
from simulator.inbox import Received, Written
from simulator.moments import farm_clock, farm_time

MOST_SHOWN: Final = 20
LANGUAGES: Final = {"en": "English", "es": "Spanish"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Phone:
    """One phone, and all that came to it and went out from it."""

    number: str
    owner: Person | None
    is_off: bool
    texts: Sequence[Received]
    written: Sequence[Written]

    @property
    def name(self) -> str:
        """How addresses name it."""
        return self.number if self.owner is None else self.owner.person_id

    @property
    def title(self) -> str:
        return self.number if self.owner is None else self.owner.name

    @property
    def waiting(self) -> int:
        """How many texts wait for it to be switched on."""
        return sum(text.arrived_ms is None for text in self.texts)


_STYLE: Final = """
:root{color-scheme:light dark;--paper:#f4f1ea;--sheet:#fffdf8;--ink:#222;--soft:#5a564d;--line:#b9b3a5;
--own:#e3ecdf;--bad:#8c2f1b}
@media(prefers-color-scheme:dark){:root{--paper:#1b1a17;--sheet:#24221e;--ink:#ece7db;--soft:#b1aa9b;--line:#4d483e;
--own:#2b3a2c;--bad:#f0a48f}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:84rem;padding:1rem;font:1rem/1.45 Georgia,serif;
background:var(--paper);color:var(--ink)}
h1{font-size:1.25rem;margin:0}h2{font-size:1.05rem;margin:0}
header{border-bottom:3px double var(--line);padding-bottom:.7rem;margin-bottom:1rem}
header p{margin:.3rem 0 0;color:var(--soft);max-width:48rem}
nav{margin-top:.4rem}nav a{display:inline-block;padding:.55rem .9rem .55rem 0;color:inherit}
@media(min-width:78rem){nav{display:none}}
main{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,18rem),1fr));gap:1rem;align-items:start}
section{background:var(--sheet);border:1px solid var(--line);border-radius:.5rem;padding:.8rem;min-width:0}
small,.what{font-size:.85rem;color:var(--soft)}.what{margin:.1rem 0 0}
form{display:flex;gap:.5rem;margin:.7rem 0 0;align-items:center;flex-wrap:wrap}
input,button{font:inherit;color:inherit;min-height:2.75rem;border:1px solid var(--line);border-radius:.3rem}
input{flex:1 1 9rem;min-width:0;padding:0 .6rem;background:var(--paper)}
button{padding:0 .9rem;background:var(--paper);cursor:pointer}
input:focus-visible,button:focus-visible,a:focus-visible{outline:2px solid var(--ink);outline-offset:2px}
.state{flex:1 1 9rem;font-size:.9rem}.off .state{font-weight:bold}
ol{list-style:none;margin:.8rem 0 0;padding:0}
li{margin-top:.6rem;border:1px solid var(--line);border-radius:.3rem;padding:.5rem .6rem;margin-right:1.2rem}
li.own{margin:.6rem 0 0 1.2rem;background:var(--own)}li.none{border:0;padding:0;color:var(--soft)}
li p{margin:0 0 .2rem;white-space:pre-wrap;overflow-wrap:anywhere}li small{display:block}.bad{color:var(--bad)}
"""

_SCRIPT: Final = """
const now=document.getElementById("now");
setInterval(async()=>{try{
 const page=new DOMParser().parseFromString(await(await fetch("/")).text(),"text/html");
 for(const fresh of page.querySelectorAll("[data-fresh]")){
  const old=document.getElementById(fresh.id);
  if(!old){location.reload();return}
  if(old.innerHTML!==fresh.innerHTML){old.innerHTML=fresh.innerHTML}}
}catch{now.textContent="The phones do not answer: the demo has ended."}},2000);
"""


def page_of(phones: Sequence[Phone], farm_now_ms: int, *, can_answer: bool) -> str:
    """The whole page."""
    links = "".join(f'<a href="#{escape(phone.name)}">{escape(phone.title)}</a>' for phone in phones)
    how = (
        "Answer as a text asks, such as: 1 going."
        if can_answer
        else "They have no way to the service, so they cannot answer."
    )
    sections = "".join(_phone(phone, can_answer=can_answer) for phone in phones)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<title>Pretend phones</title><link rel="icon" href="data:,"><style>{_STYLE}</style></head>'
        f"<body><header><h1>Pretend phones</h1><p>The people of {escape(farm.FARM_NAME)}, {escape(farm.PLACE)}. "
        f"{farm.INVENTED.capitalize()}: no real phone got these texts. {how}</p>"
        f'<p id="now" data-fresh>Farm clock {farm_time(farm_now_ms)}</p>'
        '<noscript><p><a href="/">Look for new texts</a></p></noscript>'
        f"<nav>{links}</nav></header><main>{sections}</main>"
        f"<script>{_SCRIPT}</script></body></html>"
    )


def _phone(phone: Phone, *, can_answer: bool) -> str:
    name, title = escape(phone.name), escape(phone.title)
    write = (
        f'<form method="post" action="{_address(phone)}/answers">'
        f'<input name="text" required maxlength="480" autocomplete="off" aria-label="Answer as {title}" '
        f'placeholder="Answer"><button>Send</button></form>'
    )
    return (
        f'<section id="{name}" aria-labelledby="title-{name}"><h2 id="title-{name}">{title}</h2>'
        f'<p class="what">{escape(_what(phone))}</p>'
        f'<div id="switch-{name}" data-fresh>{_switch(phone)}</div>{write if can_answer else ""}'
        f'<ol id="texts-{name}" data-fresh aria-live="polite">{_conversation(phone)}</ol></section>'
    )


def _address(phone: Phone) -> str:
    return f"/phones/{quote(phone.name, safe='+')}"


def _what(phone: Phone) -> str:
    if phone.owner is None:
        return "in nobody's name in the farm's books"
    manages = ", manages the farm" if phone.owner.is_manager else ""
    return f"{phone.number}, reads {LANGUAGES[phone.owner.language]}{manages}"


def _switch(phone: Phone) -> str:
    to = "on" if phone.is_off else "off"
    waits = f": {phone.waiting} {'text waits' if phone.waiting == 1 else 'texts wait'}" if phone.waiting else ""
    state = f"Switched off{waits}" if phone.is_off else "Switched on"
    return (
        f'<form method="post" action="{_address(phone)}/switch"{" class=off" if phone.is_off else ""}>'
        f'<span class="state">{state}</span><button name="to" value="{to}">Switch {to}</button></form>'
    )


def _conversation(phone: Phone) -> str:
    lines = [line for _, _, line in sorted(_lines(phone), reverse=True)]
    older = len(lines) - MOST_SHOWN
    more = [f'<li class="none">and {older} older</li>'] if older > 0 else []
    return "".join([*lines[:MOST_SHOWN], *more]) or '<li class="none">No texts yet.</li>'


def _lines(phone: Phone) -> Iterator[tuple[int, int, str]]:
    language = "en" if phone.owner is None else phone.owner.language
    for text in phone.texts:
        if text.arrived_ms is not None:
            yield text.arrived_ms, text.number, _came(text, text.arrived_ms, language)
    for one in phone.written:
        yield one.farm_ms, one.number, _went(one)


def _came(text: Received, arrived_ms: int, language: str) -> str:
    again = f"; sent {text.repeats} more times, shown once" if text.repeats else ""
    late = f"; had waited since {farm_clock(text.farm_ms)}" if arrived_ms != text.farm_ms else ""
    receipt = "" if text.receipt is None else f"; receipt: {escape(text.receipt)}"
    return (
        f'<li><p lang="{language}">{escape(text.text)}</p>'
        f"<small>{farm_clock(arrived_ms)}, {len(text.text)} letters{late}{again}{receipt}</small></li>"
    )


def _went(one: Written) -> str:
    said = one.came_back or "on its way"
    mark = ' class="bad"' if said.startswith("not ") else ""
    return (
        f'<li class="own"><p>{escape(one.text)}</p>'
        f"<small>{farm_clock(one.farm_ms)}; service: <span{mark}>{escape(said)}</span></small></li>"
    )
