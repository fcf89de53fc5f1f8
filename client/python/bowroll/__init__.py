"""A thin client of the bowroll service over JSON.

It needs nothing but Python and computes nothing: what an answer means is said
by the service. Every number is SI, with its unit in the key that holds it
(``gross_mass_kg``, ``headwind_mps``; temperatures in degrees Celsius); a key
whose value is ``None`` has no value, which is never zero. Results advise: the
approved flight manual, the ordnance instructions and the people responsible
decide.

    import bowroll

    service = bowroll.Client("http://127.0.0.1:8472")
    answer = service.compute({"aircraft_type": "aircraftTypes/corvane", ...})
    print(answer["run_m"], answer["limiting"])

An analyst asks for tables, whose rows load into a data frame as they are:

    pandas.DataFrame(service.table(cases))
"""

from .client import Client
from .errors import BowrollError, Refusal, StreamCut, Unreachable, Violation
from .stream import Stream

__all__ = ["BowrollError", "Client", "Refusal", "Stream", "StreamCut", "Unreachable", "Violation"]
