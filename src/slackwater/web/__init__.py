"""The ward's pages: a server beside the record, for the people on the ward.."""
