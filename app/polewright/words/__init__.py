"""What the program says: values in, sentences out. Pure; the only room with English in it besides page labels.

One file a subject; every sentence is a function of numbers. Another language
would be another room.

Decided 2026-11-29. Decide in values, speak last. A reason is a frozen value beside its cause (core/star_trouble.py,
core/axis_reasons.py, core/drift/reasons.py), with its numbers and without a word; what is decided, is decided by
it. words/ renders each by a match that mypy keeps complete, so a new reason names every place that must tell it;
tests/quality/test_words.py finds sentences elsewhere. Sentences beside their cause came first, and behaviour hung
on phrases: rewording "out of focus" changed what the program did. A log of version 1 holds such sentences;
services/log_migration.py alone looks into them.
"""
