"""What a whole box of cores cannot be better than: bounds on the sheet, for a search that must rate only a few.

Every bound comes from the sheet's own formulas, put together from the better end of each part: the film of the hotter
air, the flow of the wider port, the loss of the thinner core. Nothing in it is fitted, and it is never close; a core
of the box is always worse, or as good.
"""
