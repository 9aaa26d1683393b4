"""A live page of one case on this machine: the advisory, its problems, a form, downloads.

``live`` keeps what a case comes to, ``form`` turns its readings and prices into boxes and back,
``pages`` makes the HTML, ``app`` answers a browser, ``serve`` listens and watches the files. It is
for the one who started it: loopback only, a random token, no other host's name, nothing loaded
from elsewhere. Needs the extra ``preview``.
"""
