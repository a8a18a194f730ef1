"""Stage 3: lift the ornament off the form it sits on.

What the maker calls it: taking the relief off. Terms: the *base* is the form without the ornament, the *ground* the
places where it shows; the *height* runs along the base's outward normal (see `meshflow.model.relief`).

The way through: `base_of` finds the base under a region; the base is laid flat by the next room; `height_over` samples
the heights on the flat; `lines` draws ridges, valleys and contours; `mending` smooths worn relief and makes repeats
alike. `height_file` keeps heights in a file and reads them back, and reads and writes them as a picture.
"""
