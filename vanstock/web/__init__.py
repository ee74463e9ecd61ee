"""The phone face: the same routines and the same words as the terminal, as pages for a phone under a car.

Not the rules (see `routines`) and no arithmetic: parse a form, call one routine, show. Called by `cli.serve`.

The contract between the pages and static/queue.js:

- Every act is `<form method="post" action="/act" data-act data-said="...">`: the words say what will be recorded.
- Its hidden fields are `id` (of the entry; the script puts its own), `act` and the fields of that act:
    fit       job part qty [with=1] [place]     missed    job part qty
    minus     job part (undo of the last fit or miss of the part on the job, found when it is recorded)
    undo      entry                             load      part qty place van
    load-all  lines (JSON: [[part, qty, place], ...]) van
    finish    job                               reading   job kind value unit [after=1]
    count     part qty place [reason]           sent      order
    receive   order [came:PART ...] [damaged:PART ...] [rest=later|cancel] [place]; all as ordered without came:PART
    order     supplier qty:PART ... take:PART=1 ... [on-order:PART ...]: a line without its take:PART is left out;
              on-order:PART is what was on order of it when the page was made
  An amount is a plain decimal in the part's unit unless a person typed it (then also with a unit, or a decimal comma).
- A form may say what its fields do not: data-moves (JSON: [[part, qty, from, to], ...]) what it moves, data-takes
  (JSON: [[entry, moves], ...]) the entries that it may take back, newest first, data-once what it does, one thing
  a line, of which only one act may wait.
- The script sends the same fields, and `made` (the local time of the act, ISO 8601), `waited` (whole seconds since, by
  the phone's clock, right or wrong) and `ledger` (data-ledger of the page's body), as
  application/x-www-form-urlencoded with `Accept: application/json`. The answers:
    200 {"state": "done", "said": ..., "entry": ..., "undo": true}
    409, 413, 415 or 422 {"state": "refused", "why": ...}: not recorded, and will not be by trying again
    401 {"state": "unpaired"}; 403: from another page than ours; 408, 5xx or no answer: keep it and try again.
  The same id again gets the same answer.
- A number that waiting acts change stands in an element with data-qty-part, data-qty (in the part's unit), data-unit,
  data-pack (base units in a pack) and data-place: what lies in a van or store of that name, `on JOB` for what is fitted
  on it, `missed on JOB` for what it lacked.
- A photo is sent to /scan, as multipart/form-data of at most 12 MiB with `photo` and the page's `job` or `place` and
  `van`, by a form with data-scan. Nothing is recorded. Without the script the answer leads to the part's card; to the
  script it is
    200 {"state": "found", "part": ..., "said": ..., "page": ...}
    422 {"state": "unread", "why": ...}; the others as above.
- A form with data-find="/find?job=J0001" looks parts up as they are typed in its field `q`: the address answers
  {"parts": [...]}, or, for `Accept: text/html`, the cards themselves to put into the element #found.
- Where there are more vans, `?van=NAME` goes along from page to page.
"""
