"""What leaves the house. Claim one, send it, mark it; any number of processes, killed at any line.

A claim is a lease on the machine's own clock. A process that dies after its claim leaves the row to the next
one when the lease is over, so everything goes out **at least once**, with the same key at every try: the
Message-ID of an e-mail, the ``webhook-id`` of a call. A repeat is possible only when a process
dies, or its database goes away, between the receiver's acceptance and the mark: a window of milliseconds,
and then one repeat for each such death.
"""
