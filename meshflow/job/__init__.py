"""The job: from one file that says what is wanted to a folder with everything in it.

The only room that knows the order of the stages. `schema` says what a job file may hold, `load` reads one into a
`plan`, `stages` lists the stages as data, `cache` keeps their results, `run` walks the list, `outputs` writes the
files, `record` writes down what was done, `single` does one stage for one file.
"""
