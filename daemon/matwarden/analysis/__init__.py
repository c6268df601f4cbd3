"""What a tub can do, found from its own record. Needs matwarden[analysis]; the running daemon never imports it."""

import os

# These matrices are long and thin: several threads wait for each other, and a fit takes twice as long on two cores.
# Heard by numpy when it is loaded, which nothing does before; whoever set it otherwise keeps it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
