"""The running application: everything that touches a broker, a database, a network or the clock."""
