"""Tells open pages that something changed, so that they ask for it again.

Pages: ``{% include "live/_listen.html" %}`` once, near the end of the body. Then

    <section hx-get="..." hx-trigger="changed from:body">          any change in the shop
    <section hx-get="..." hx-trigger="changed:visit from:body">    changes of visits
    <section hx-get="..." hx-trigger="changed:visit:12 from:body"> changes of this visit

An event is a hint (kind, subject, number), never data: who may see what is decided when the page
asks. ``app`` is a small program of its own that sends the hints; ``pages`` serves tickets to it and
the answer for browsers that cannot reach it.
"""
