"""Which parts may be pooled into one curve, and with what weight.

Sites with many failures have most gaps, and the last gap is the long, cut one: pooling them all makes parts look short-lived.
And a patient with four implants counts twice as much as one with two, unless told otherwise.
"""

from __future__ import annotations

import numpy as np

from outcomes.longevity.estimate import ArgumentError, as_codes, as_flags, as_numbers


def serial_gaps(site, serial, complete) -> np.ndarray:
    """Weights for a Kaplan–Meier curve of all gaps: a site with m complete gaps keeps its first max(m, 1), each weighing 1/max(m, 1).

    site: (n,) labels; serial: (n,) order of the parts at their site, no two alike; complete: (n,) true where the gap ended in the
    event, which all but a site's last must have. Returns (n,) weights, 0 for a censored gap that follows a complete one. Use as
    ``kaplan_meier(gap, complete, weights=serial_gaps(...), cluster=patient)``; valid where every complete gap ends in the endpoint.

    Raises ArgumentError where a censored gap is not the last of its site, or a serial number repeats.
    Source: Wang and Chang 1999 (J Am Stat Assoc 94:146).

    >>> serial_gaps(["33", "33", "33", "43"], [1, 2, 3, 1], [1, 1, 0, 0]).tolist()
    [0.5, 0.5, 0.0, 1.0]
    """
    serial = as_numbers("serial", serial)
    n = len(serial)
    codes, labels = as_codes("site", site, length=n)
    complete = as_flags("complete", complete, length=n)
    order = np.lexsort((serial, codes))
    same = codes[order][1:] == codes[order][:-1]
    twice = same & (np.diff(serial[order]) <= 0)
    if twice.any():
        raise ArgumentError("serial", "repeats within a site", "Number the parts of a site in the order they were fitted.",
                            int(order[1:][np.argmax(twice)]))
    early = same & ~complete[order][:-1]
    if early.any():
        raise ArgumentError("complete", "is false for a gap that another follows at the same site", "Only a site's last gap can be "
                            "censored; other endings than the endpoint call for an endpoint of any replacement.",
                            int(order[:-1][np.argmax(early)]))
    kept = np.maximum(np.bincount(codes, weights=complete, minlength=len(labels)), 1)[codes]
    first = np.zeros(n, dtype=bool)
    first[order[np.concatenate([[True], ~same])]] = True
    return np.where(complete | first, 1 / kept, 0.0)


def per_patient(patient) -> np.ndarray:
    """Weights that make every patient count once, 1 / (rows of the patient): the curve then answers for the typical patient, not part.

    patient: (n,) labels. Use as ``kaplan_meier(..., weights=per_patient(patient), cluster=patient)``. Raises ArgumentError.
    Source: Williamson, Datta and Satten 2003 (Biometrics 59:36).

    >>> per_patient(["p", "p", "q"]).tolist()
    [0.5, 0.5, 1.0]
    """
    codes, labels = as_codes("patient", patient, length=len(patient))
    return 1 / np.bincount(codes, minlength=len(labels))[codes]
