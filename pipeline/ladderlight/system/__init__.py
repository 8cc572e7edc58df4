"""What the machine imposes: paths that it refuses, text that it would act on, versions of libraries."""
