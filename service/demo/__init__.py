"""The sample practice, done once for whoever wants to see it.

In: `sample_frames`. Out: a calibration, readings, a report. Uses the same rooms as a real practice.
"""
