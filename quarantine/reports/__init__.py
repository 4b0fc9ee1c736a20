"""Paper: text and pages made of documents that the actions read. Pure: nothing here opens a record or a file."""
