"""Who was examined, and what was to be expected of these exams: the fair comparison."""
