"""Letters to clients: composed from finished advisories, kept as files, sent when asked.

A letter goes out once: the log of ``send`` keeps what went when, and is read before anything is
sent.
The password stands in an environment variable or the keyring, never in the settings.
"""
