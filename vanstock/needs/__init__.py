"""What a job takes: finished jobs to weighted cases to draws of coming jobs. Pure."""
