"""From a study file to a typed `Study` in SI, or to every fault of the file at once.

`load.load(path)` is the way in, `model` is what comes out. What may be written: `schema` (the study), `goals` (its
objectives and limits), `catalogue` and `catalogue_entries`, made of `values`, `tolerances` and `variables`; `measured`
reads the table of a measured fin. `toml_file`, `lines` and `faults` see to it that a fault is told with its place and
what to do. `starter` writes a first study.
"""
