// Package board shows all sites at once: the board of every wall in the order of
// what is due next, the alerts that stand, the braces that come free, and the
// week of expected strip times.
//
// What it guarantees:
//   - Make is pure: it picks, orders and words what the assessments, the states
//     and the alerts of one picture of the record say. It keeps nothing of them.
//   - The order of the walls is total: joints, forms and people come before
//     loads, loads before windows; within these the earlier before the later.
//     Equal input gives equal bytes.
//   - A picture of the record is computed once for all viewers, and at most a few
//     times a second; each viewer is shown only the sites in sight. What a viewer
//     may see is asked for anew before each answer.
//   - A live viewer gets the whole board first and then the cells that changed.
//     One that does not read is cut; when it comes again it gets the whole.
//   - No page runs a script or a style that stands in the page itself.
package board
