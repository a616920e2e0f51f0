"""What the program says: values in, sentences out. Pure; the only room with English in it besides page labels.

One file a subject; every sentence is a function of numbers. Another language
would be another room.
"""
