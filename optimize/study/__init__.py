"""From a study file to a typed `Study` in SI, or to every fault of the file at once.

`load.load(path)` is the way in, `model` (with `model_system`, what stands around the core) is what comes out. What may
be written: `schema` (the study), `schema_duty`, `schema_loop`, `schema_drive`, `schema_soak`, `schema_scatter`, `goals`
(objectives and limits), `catalogue`, `catalogue_entries`, `catalogue_lines`, made of `values`, `tolerances`,
`variables`; `agreement` tells which tables and keys ask for others. `duty_points` makes duty points of their tables.
`shelves` reads the files a study names, `measured` the table of a measured fin, `samples` what a tolerance was measured
by, `trace` a recorded run. `toml_file`, `lines` and `faults` see to it that a fault is told with its place and what to
do. `starter` writes a first study.
"""
