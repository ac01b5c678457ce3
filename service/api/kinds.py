"""Every kind of refusal that leaves the service: its status, its title and what it means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of problem: its status, its title and what it means to whoever meets it."""

    status: int
    title: str
    meaning: str


KINDS: Mapping[str, Kind] = {
    "bad-still": Kind(
        status=422,
        title="The still cannot be read",
        meaning="The bytes are no whole picture, or the picture does not suit the calibration. "
        "Nothing was stored.",
    ),
    "too-dark": Kind(
        status=422,
        title="No light on the table",
        meaning="The picture is so dark that balls would be missed. Turn the lamp on, or have the "
        "camera expose longer. Nothing was stored.",
    ),
    "bad-file": Kind(
        status=422,
        title="The document is not what it should be",
        meaning="A field is missing or wrong, or the format or its version is unknown here. "
        "Nothing was stored.",
    ),
    "bad-table": Kind(
        status=422,
        title="The table cannot be",
        meaning="A measure of the table is out of bounds. Nothing was stored.",
    ),
    "calibration-refused": Kind(
        status=422,
        title="The calibration is refused",
        meaning="The calibration cannot be used, or not with this still. Nothing was stored.",
    ),
    "bad-intent": Kind(
        status=422,
        title="The intent cannot be played",
        meaning="Its limits contradict each other, or it names what is not on the table. The "
        "intent that held before still holds.",
    ),
    "bad-correction": Kind(
        status=422,
        title="The names cannot be corrected so",
        meaning="A correction names no ball of the reading, or no name. Nothing was changed.",
    ),
    "later-correction": Kind(
        status=409,
        title="A later correction stands on it",
        meaning="Corrections of a reading are taken back one by one, the last first. Nothing was "
        "changed.",
    ),
    "bad-set": Kind(
        status=422,
        title="The ball set cannot be used",
        meaning="A field is missing or wrong, or the set was taught for other networks: teach it "
        "anew. Nothing was stored.",
    ),
    "bad-note": Kind(
        status=422,
        title="The note cannot be taken",
        meaning="A note says spin, side_spin, rails and in_a_row. The note that was there before "
        "still stands.",
    ),
    "bad-player": Kind(
        status=422,
        title="The player's settings cannot be",
        meaning="A setting is unknown or out of bounds. The settings that held before still hold.",
    ),
    "bad-archive": Kind(
        status=422,
        title="The archive cannot be taken in",
        meaning="It is damaged, or no archive of Restmark. Nothing of it was taken in.",
    ),
    "newer-archive": Kind(
        status=422,
        title="The archive is of a newer Restmark",
        meaning="This release does not know all that lies in it. Nothing of it was taken in.",
    ),
    "archive-too-large": Kind(
        status=422,
        title="More lies in the archive than such a file can hold",
        meaning="No export packs so much into so little. Nothing of it was taken in.",
    ),
    "bad-layout": Kind(
        status=422,
        title="The layout cannot be kept",
        meaning="A title, tag or note is out of bounds, the file holds no layout, or something lay "
        "over the table. Nothing was stored.",
    ),
    "empty-layout": Kind(
        status=422,
        title="The layout has no balls",
        meaning="A layout to lay again has at least one ball. Nothing was stored.",
    ),
    "bad-guide": Kind(
        status=422,
        title="The set-up guide cannot be",
        meaning="It names no layout, or its tolerance is out of bounds. The one that held before "
        "still holds.",
    ),
    "no-guide": Kind(
        status=404,
        title="Nothing is to be laid",
        meaning="No layout was chosen for this table, or it was put away.",
    ),
    "other-surface": Kind(
        status=409,
        title="The layout is of another table",
        meaning="At the same diamonds its balls have no room on this table. Nothing was changed.",
    ),
    "bad-sheet": Kind(
        status=422,
        title="No sheet can be made so",
        meaning="A size is out of bounds.",
    ),
    "other-table": Kind(
        status=422,
        title="The cameras look at different tables",
        meaning="Calibrations of one table's cameras tell surfaces of other sizes. Nothing was "
        "stored.",
    ),
    "other-moment": Kind(
        status=422,
        title="The stills are of different moments",
        meaning="The cameras see the balls in other places: the stills were not taken together, or "
        "a camera has moved far. Nothing was stored.",
    ),
    "unknown-camera": Kind(
        status=409,
        title="No such camera at the table",
        meaning="Only cameras that were calibrated send stills. Nothing was stored.",
    ),
    "first-camera": Kind(
        status=409,
        title="The first camera stays",
        meaning="Only further cameras over a table are taken away. Nothing was changed.",
    ),
    "no-calibration": Kind(
        status=409,
        title="No calibration is set",
        meaning="Stills can be read only after PUT /api/v1/calibration.",
    ),
    "no-layout": Kind(
        status=409,
        title="No layout to start from",
        meaning="An intent needs the layout before the shot: post a still of the clear table "
        "first.",
    ),
    "no-intent": Kind(
        status=404,
        title="No intent is pending",
        meaning="The last one was scored or withdrawn, or none was set.",
    ),
    "no-attempt": Kind(
        status=409,
        title="No attempt was made yet",
        meaning="The same shot again, or its mirror image, needs an attempt at this table.",
    ),
    "not-the-last": Kind(
        status=409,
        title="Not the last attempt",
        meaning="Only the last live attempt of a table can be reopened. Nothing was changed.",
    ),
    "no-outcome": Kind(
        status=409,
        title="Nothing was understood there",
        meaning="Only what happened before a live still can be put right: not before a table's "
        "first, nor before one that was imported, read again, put aside or compared with nothing.",
    ),
    "bad-outcome": Kind(
        status=422,
        title="It cannot have been that",
        meaning="A layout set up again needs an earlier one with the same balls. Nothing was "
        "changed.",
    ),
    "no-skip": Kind(
        status=409,
        title="No shot can be skipped so",
        meaning="Only the next shot of an open practice's plan can be; `fields.next` names it, "
        "where another one was meant. Nothing was changed.",
    ),
    "nothing-to-undo": Kind(
        status=409,
        title="Nothing is left to undo",
        meaning="Every change by hand at this table is taken back already.",
    ),
    "not-found": Kind(
        status=404, title="Not found", meaning="There is nothing under this address or number."
    ),
    "method-not-allowed": Kind(
        status=405,
        title="Method not allowed",
        meaning="The address exists, but not for this method; Allow lists those it has.",
    ),
    "invalid-request": Kind(
        status=422,
        title="The request is not valid",
        meaning="A parameter or the body is missing or out of bounds; errors lists each.",
    ),
    "bad-request": Kind(
        status=400,
        title="The request cannot be understood",
        meaning="The body is not JSON, or the form or a header is broken.",
    ),
    "too-large": Kind(
        status=413,
        title="The body is too large",
        meaning="Stills may have 20 MB, other bodies 1 MB.",
    ),
    "unsupported-media": Kind(
        status=415,
        title="Unsupported media type",
        meaning="Send a still as image/jpeg, image/png, application/octet-stream or as the file "
        "of a form; all else as application/json.",
    ),
    "idempotency-key-reused": Kind(
        status=422,
        title="The idempotency key was used for another still",
        meaning="A key belongs to one upload. Use a new key for a new still.",
    ),
    "bad-idempotency-key": Kind(
        status=400,
        title="The idempotency key cannot be used",
        meaning="A key has 1 to 200 visible ASCII characters.",
    ),
    "not-paired": Kind(
        status=401,
        title="This device is not paired",
        meaning="The service is reached by others too, and only paired devices are let in: show "
        "a token as `Authorization: Bearer …`, or open /pair in the browser.",
    ),
    "role-not-enough": Kind(
        status=403,
        title="This device may not do that",
        meaning="A viewer looks on, a table device practises, an owner does everything. Nothing "
        "was changed.",
    ),
    "bad-code": Kind(
        status=403,
        title="This code pairs no device",
        meaning="It is none, was used already, or is past its 15 minutes.",
    ),
    "too-many-tries": Kind(
        status=429,
        title="Tried too often",
        meaning="Codes may be tried five times a minute; Retry-After says when again.",
    ),
    "source-not-allowed": Kind(
        status=403,
        title="Not a source that a request may name",
        meaning="Where others reach the service, requests name cameras, and folders that were "
        "named when it was started. Nothing was changed.",
    ),
    "foreign-host": Kind(
        status=421,
        title="Not this service's address",
        meaning="The Host header names another machine. Use the address that the service printed.",
    ),
    "foreign-origin": Kind(
        status=403,
        title="Asked by a page of another site",
        meaning="Only the service's own page and programs may drive it.",
    ),
    "bad-length": Kind(
        status=422,
        title="This is no length",
        meaning="A length is a number of mm, or says its unit: 2590, 259cm, 102in, 8ft6in.",
    ),
    "bad-source": Kind(
        status=422,
        title="No picture comes from there",
        meaning="The source is none, or the camera sends nothing. Nothing was changed.",
    ),
    "bad-setup": Kind(
        status=422,
        title="The set-up cannot do that",
        meaning="Too much or too little was asked. Nothing was changed.",
    ),
    "setup-gone": Kind(
        status=404,
        title="Not in memory any more",
        meaning="Stills and results of the set-up are kept until the service stops, the last ones "
        "only. Take the still again.",
    ),
    "setup-busy": Kind(
        status=409,
        title="Too much waits already",
        meaning="The set-up works one thing out after the other. Ask again when one is done.",
    ),
    "setup-unfinished": Kind(
        status=409,
        title="There is no result",
        meaning="The work is not done yet, or it was refused: GET it to see which.",
    ),
    "reach-places": Kind(
        status=422,
        title="These places do not tell a reach",
        meaning="A still shows no just reachable place, or the places contradict each other.",
    ),
    "table-busy": Kind(
        status=503,
        title="Too much waits at this table",
        meaning="Stills came faster than they could be read. Retry-After says when again; nothing "
        "was stored. Other tables are not held up.",
    ),
    "no-reader": Kind(
        status=503,
        title="No process was free to read it",
        meaning="All of them were at work for long, or none starts. Retry-After says when again; "
        "nothing was stored.",
    ),
    "reader-died": Kind(
        status=500,
        title="The still ended the process that read it",
        meaning="It was tried twice and is not tried again: take another still. Other tables go "
        "on. Nothing was stored.",
    ),
    "reading-hung": Kind(
        status=500,
        title="The reading came to no end",
        meaning="It was given up and is not tried again: take another still. Other tables go on. "
        "Nothing was stored.",
    ),
    "store-failed": Kind(
        status=503,
        title="The data directory cannot be used",
        meaning="The disk is full or not writable, or a file in it is gone or damaged. Nothing "
        "was stored.",
    ),
    "store-damaged": Kind(
        status=503,
        title="The database is damaged",
        meaning="A cell of restmark.db is not what was written there: put your copy of it back. "
        "Nothing was stored.",
    ),
    "internal": Kind(
        status=500,
        title="The service failed",
        meaning="A fault of the program, which its log tells more of. Nothing was stored.",
    ),
    "error": Kind(status=422, title="Refused", meaning="The detail says why."),
}
