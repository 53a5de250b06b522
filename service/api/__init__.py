"""The farm for programs: JSON over HTTP, thin over what watch and storage do."""
