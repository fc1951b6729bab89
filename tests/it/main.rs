//! End-to-end and outside-reference checks, as one program.

mod agreement;
mod by_hand;
mod check;
mod dispatch;
mod every_day;
mod finer;
mod habits;
mod held_off;
mod kept_in_case;
mod plant_room;
mod plant_room_site;
mod plant_room_size;
mod practice;
mod properties;
mod replay;
mod series;
mod site_file;
mod study;
mod worlds;
