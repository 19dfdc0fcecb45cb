"""The hand-lever test around the photo: pure calculations, no input and no output.

`opening` is read first; `seat` holds just below it; `spring` and `spacers` say what to change;
`engine_set` compares the injectors of one engine. Verdicts are set in the judge's room, words stand
in the reports' catalogue, and what a maker asks for comes from a nozzle file (`specification`).
"""
