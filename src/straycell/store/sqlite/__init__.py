"""The only place that knows that a store is an SQLite file: connections and locks, the file as such."""
