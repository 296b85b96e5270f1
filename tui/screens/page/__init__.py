"""Page: everything of one cylinder, or of the job, line by line; each line can be corrected or come back."""
