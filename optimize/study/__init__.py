"""From a study file to a typed `Study` in SI, or to every fault of the file at once.

`load.load(path)` is the way in; `model` is what comes out; `schema`, `catalogue` and `values` say what may be
written; `lines` finds the line of a key; `measured` reads a table of a measured fin; `starter` writes a first study.
"""
