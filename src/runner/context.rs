//! What a judgement needs to know of the job.
