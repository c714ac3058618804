"""One line of the trail as a sentence, in the reader's language.

What is stored is what was done (``verb``) and to what (``subject_name``, as the thing called itself that day). The
sentence is made when it is read, so both languages read the same trail. A verb without a sentence is still told,
as it is; a test names it.
"""

from __future__ import annotations

import re

from django.utils.translation import gettext

from farmops.errors import gettext_noop

SENTENCES = {
    "added": gettext_noop("{who} added {what}."),
    "adjusted": gettext_noop("{who} adjusted {what}."),
    "amend": gettext_noop("{who} opened {what} to be corrected."),
    "answered": gettext_noop("{who} answered {what}."),
    "asked for": gettext_noop("{who} asked for {what}."),
    "asked for a correction of": gettext_noop("{who} asked for a correction of {what}."),
    "assign": gettext_noop("{who} assigned {what}."),
    "brought in": gettext_noop("{who} brought in {what}."),
    "brought in trainings to": gettext_noop("{who} recorded a list of trainings of {what}."),
    "call_off": gettext_noop("{who} called off {what}."),
    "changed": gettext_noop("{who} changed {what}."),
    "changed nozzles of": gettext_noop("{who} changed the nozzles of {what}."),
    "changed password of": gettext_noop("{who} changed the password of {what}."),
    "changed the plan of": gettext_noop("{who} changed the plan of {what}."),
    "changed the secret of": gettext_noop("{who} changed the secret of {what}."),
    "checked": gettext_noop("{who} checked {what}."),
    "closed": gettext_noop("{who} closed {what}."),
    "copied": gettext_noop("{who} copied {what}."),
    "copied the advice of": gettext_noop("{who} copied the advice of {what}."),
    "correct": gettext_noop("{who} corrected {what}."),
    "counted": gettext_noop("{who} counted {what}."),
    "decided": gettext_noop("{who} decided {what}."),
    "declined": gettext_noop("{who} declined {what}."),
    "edit": gettext_noop("{who} changed {what}."),
    "explained": gettext_noop("{who} explained {what}."),
    "fetched": gettext_noop("{who} fetched a file of {what}."),
    "finish": gettext_noop("{who} reported the end of {what}."),
    "found": gettext_noop("{who} found {what}."),
    "followed the ground": gettext_noop("{who} moved {what} to the new ground."),
    "gave up own advice": gettext_noop("{who} gave up the farm's own advice: {what}."),
    "hung": gettext_noop("{who} hung the {what}."),
    "invited": gettext_noop("{who} made an {what}."),
    "issued": gettext_noop("{who} issued {what}."),
    "joined": gettext_noop("{who} joined: {what}."),
    "kept the old ground of": gettext_noop("{who} moved {what}; its sprays keep the old ground."),
    "left": gettext_noop("{who} left: {what}."),
    "lifted": gettext_noop("{who} lifted {what}."),
    "looked at": gettext_noop("{who} looked at {what}."),
    "made": gettext_noop("{who} made {what}."),
    "merged": gettext_noop("{who} merged {what}."),
    "not_applied": gettext_noop("{who} signed that nothing was applied: {what}."),
    "opened": gettext_noop("{who} opened {what}."),
    "plan": gettext_noop("{who} planned {what}."),
    "planned": gettext_noop("{who} planned {what}."),
    "put up the display": gettext_noop("{who} put up the display of {what}."),
    "took over a suggestion for": gettext_noop("{who} took over a suggestion for {what}."),
    "received": gettext_noop("{who} received {what}."),
    "recorded": gettext_noop("{who} recorded {what}."),
    "removed": gettext_noop("{who} removed {what}."),
    "report_late": gettext_noop("{who} reported late: {what}."),
    "revoked": gettext_noop("{who} revoked {what}."),
    "set": gettext_noop("{who} set {what}."),
    "set the birth date of": gettext_noop("{who} set the birth date of {what}."),
    "set up": gettext_noop("{who} set up {what}."),
    "sign": gettext_noop("{who} signed {what}."),
    "split": gettext_noop("{who} split {what}."),
    "start": gettext_noop("{who} started {what}."),
    "struck": gettext_noop("{who} struck {what}: it does not count."),
    "suspended": gettext_noop("{who} suspended {what}."),
    "ticked": gettext_noop("{who} ticked {what}."),
    "took away": gettext_noop("{who} took away {what}."),
    "took away the files of": gettext_noop("{who} took away the files of {what}, whose time was over."),
    "took down": gettext_noop("{who} took down the {what}."),
    "took down the display": gettext_noop("{who} took down the display of {what}."),
    "took out": gettext_noop("{who} took out {what}."),
    "transcribed": gettext_noop("{who} transcribed {what}."),
    "turned on": gettext_noop("{who} turned on {what}."),
    "turned off": gettext_noop("{who} turned off {what}."),
    "void": gettext_noop("{who} withdrew the signature of {what}."),
    "voided": gettext_noop("{who} voided {what}."),
    "withdrew": gettext_noop("{who} withdrew {what}."),
    "wrote a packet of": gettext_noop("{who} wrote a packet of records of {what}."),
}

# How things call themselves, so that the words around the names can be said in the reader's language.
_NAMES = [
    (re.compile(pattern), template)
    for pattern, template in (
        (r"job (?P<n>\d+)", gettext_noop("spray job {n}")),
        (r"record (?P<n>\d+)", gettext_noop("record {n}")),
        (r"packet (?P<n>\d+)", gettext_noop("packet {n}")),
        (r"certificate (?P<n>.+) of (?P<who>.+)", gettext_noop("certificate {n} of {who}")),
        (r"scan of (?P<what>.+)", gettext_noop("the scan of {what}")),
        (r"credit of (?P<who>.+) on (?P<day>\S+)", gettext_noop("the credit of {who} on {day}")),
        (r"(?P<kind>\S+) training of (?P<who>.+) on (?P<day>\S+)", gettext_noop("{kind} training of {who} on {day}")),
        (r"invitation for (?P<who>.+)", gettext_noop("invitation for {who}")),
        (r"key (?P<n>\S+) “(?P<what>.*)”", gettext_noop("key {n} “{what}”")),
        (r"(?P<kind>\S+) closure of (?P<where>.+)", gettext_noop("{kind} closure of {where}")),
        (r"stock of (?P<what>.+)", gettext_noop("stock of {what}")),
        (r"lot (?P<n>.+) of (?P<what>.+)", gettext_noop("lot {n} of {what}")),
        (r"calibration of (?P<what>.+) on (?P<day>\S+)", gettext_noop("calibration of {what} on {day}")),
        (r"spray settings of (?P<what>.+)", gettext_noop("spray settings of {what}")),
        (r"(?P<what>.+), label version (?P<n>\d+)", gettext_noop("{what}, label version {n}")),
        (r"request about (?P<what>.+)", gettext_noop("request about {what}")),
        (r"reading at (?P<when>.+)", gettext_noop("reading at {when}")),
        (r"(?P<who>.+) on (?P<where>.+)", gettext_noop("{who} on {where}")),
    )
]
_CODES = {
    "entry": gettext_noop("entry"),
    "harvest": gettext_noop("harvest"),
    "worker": gettext_noop("worker"),
    "handler": gettext_noop("handler"),
    "product": gettext_noop("product"),
}
THE_BOOK = gettext_noop("the farm book")
"""Who acted when nobody did: a sweep, or the command line."""


def named(name: str) -> str:
    """A thing as it called itself, with the words around its own names translated."""
    for pattern, template in _NAMES:
        if found := pattern.fullmatch(name):
            parts = {k: gettext(_CODES[v]) if v in _CODES else v for k, v in found.groupdict().items()}
            return gettext(template).format(**parts)
    return name


def sentence(*, who: str, verb: str, what: str) -> str:
    """``Ines Prado changed spray job 7.``"""
    actor = gettext(THE_BOOK) if who == THE_BOOK else who
    template = SENTENCES.get(verb)
    if template is None:
        return f"{actor}: {verb} – {named(what)}"
    said = gettext(template).format(who=actor, what=named(what))
    return said[:1].upper() + said[1:]
