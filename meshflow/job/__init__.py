"""The job: from one file that says what is wanted to a folder with everything in it.

The only room that knows the order of the stages. In the order of the work: `schema` says what a job file may hold,
`load` reads one into a `plan`; `stages` lists the stages as data, `walk` pulls results through them, `cache` and
`codec` keep what was computed; `rack` finds the sheets; `outputs`, `papers` and `record` write the files into a draft,
`folder` moves them to their place; `run` does all of it for one job, `single` one step for one file, `demo` copies
the demo.

Terms: a *step* is one stage for one part or one nest; the *record* is the file that says what went in and what came
out; a *stale* file was written by an earlier run and is no longer made.

The codes of what a job has to say: J101 a part that was not made, J102 a group of parts that was not nested, J103
sheets that the job does not list, J104 a measure that was not taken, J105 an assembly whose shared holes were not
found, J106 a supplier whose pack was not written. J120 to J129 are those of `verify`.
"""
