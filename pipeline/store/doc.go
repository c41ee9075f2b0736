// Package store is the program's one door to the disk. Inputs come through a
// fs.FS that cannot be left (Root) and are hashed as they are read (Source);
// outputs appear whole or not at all (Output).
//
// # Rules of writing
//
//   - A file is written under a temporary name in its own folder, synced, and
//     renamed. The first error of any write, sync, close or rename is
//     returned, even where the code that wrote had lost it; the temporary file is removed.
//   - An output folder is new, empty, or one that this program made before: it
//     holds a file named by Marker. Anything else is refused, so that no
//     folder of somebody's files is written into.
//   - An output folder that holds an input, or is one, is refused.
//   - The marker is locked while the folder is open, so that two runs cannot
//     write into one folder. The lock ends with the process, however it ends.
package store
