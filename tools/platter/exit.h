// Exit statuses: released; README.md tells them to people.
#pragma once

namespace platter::tool {

inline constexpr int kDone = 0;           ///< done, no fault found
inline constexpr int kFaultFound = 1;     ///< done, at least one fault found
inline constexpr int kNotUnderstood = 2;  ///< the command line or a plan file makes no sense
inline constexpr int kInputOutput = 3;    ///< something could not be read or written
inline constexpr int kInterrupted = 130;  ///< stopped by the person

}  // namespace platter::tool
