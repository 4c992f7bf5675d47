//! What holds for every recipe, every stretch, every colour: tried on random
//! ones. When one fails, the smallest like it is printed.

mod draws;

mod recipe_text;

mod recipes;

mod records;

mod tones;

mod colors;

mod pictures;
