"""What a case comes to on paper: the fault report, and the standing as a document for programs."""
