"""What leaves for other systems: FHIR R4, CSV and Parquet; and vital signs read in from FHIR.

Everything comes from one assessment, so that all agree; a value that is not known leaves as not known, never as zero.
"""
