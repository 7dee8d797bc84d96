"""Sources named by more than one rule, each in one form of words."""

__all__ = ["DE", "JATMA", "NONE", "NZ", "TRMG", "UK", "US_CHART"]

US_CHART = (
    "USTMA (formerly RMA) puncture repair chart, passenger and light truck, injury limit (scan, undated)"
)
TRMG = "TRMG industry recommended practices, in Modern Tire Dealer, 18 May 2017"
UK = "BS AU 159 suffix g, minor repairs, as summarized by the BTMA"
JATMA = "JATMA safety standard, as reproduced in tire makers' questions and answers"
DE = "guideline to StVZO section 36, 2001 (Verkehrsblatt B 3620), as restated on two pages"
NZ = "NZS 5423, as cited by the New Zealand tire trade"
NONE = "no limit in the sources read"
