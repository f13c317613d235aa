"""Work on the computers of a Dask cluster: what is sent, who does it, and what is believed of it.

Nothing that a worker says is believed: proofs are checked here again, what is broken is replayed
here. A worker that dies, or that has another version of anything that decides, proves nothing.
"""
