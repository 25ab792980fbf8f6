"""The report: one self-contained page, plain tables, and a folder that opens without the program.

evidence     [E] recordings to what a report shows of them: result, thin curve, marks, fingerprints
thin_curve   a curve as few of its own samples, every extreme kept, gaps kept as gaps
answers      one comparison made ready to be read
sections     one series of pulls: answers, curves, table, what does not count
story        everything the page says, as values
wording      numbers beside their uncertainty, units of choice, verdicts in words
charts       dots and differences as SVG text (matplotlib)
small_curves every pull as a small drawing (SVG by hand)
rig_words    calibrations, check weights, corrections, load path
budget       the uncertainty budget of the largest maximum
predicted    what published formulas expect of these pulls
recompute    lines of Python that work a force out again
photos       [E] pictures scaled down, tags left behind
page         the template filled in
tables       CSV that a spreadsheet opens and runs nothing of
data_folder  [E] the folder
"""
