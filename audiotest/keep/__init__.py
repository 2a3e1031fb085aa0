"""What is kept and handed over: recordings, clips, job sheets, reports."""
